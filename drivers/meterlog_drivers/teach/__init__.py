"""Learns what an unknown meter's bytes mean from what its display shows, and writes that down as a profile.

Pure: bytes with their arrival times go in, and what a person typed; a profile comes out, or what to show next.

| module | what it does |
|---|---|
| `moments.py` | understands what a person types: `12.34 V`, `OL kohm`, `-3.2 mA hold` |
| `bursts.py`, `frame_finder.py`, `check_finder.py` | find the frames: length, marks, pauses, parity, checksum |
| `number_search.py` | finds the bits of the number by comparing each bit of the frame with each bit of what was shown |
| `mode_search.py` | finds which bits say unit, point, sign and symbols, and which of them say nothing |
| `lesson.py` | puts moments and frames together; names late answers and slips of the keyboard |
| `line_lesson.py` | the same for meters that send text |
| `questions.py` | chooses what to show next: where the hypotheses that are left differ most |
| `profile_text.py` | writes the profile |
| `dialogue.py` | the conversation in the terminal |
"""
