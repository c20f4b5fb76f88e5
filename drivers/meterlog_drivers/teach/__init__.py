"""Learns what an unknown meter's bytes mean from what its display shows, and writes that down as a profile.

Pure: bytes with their arrival times go in, and what a person typed; a profile comes out, or what to show next.

| module | what it does |
|---|---|
| `moments.py` | understands what a person types: `12.34 V`, `OL kohm`, `-3.2 mA hold` |
| `framing/` | finds the frames: length, marks, pauses, parity, checksum |
| `digits/nearby.py` | finds the frames near a moment |
| `digits/`: `number_search.py`, `layouts.py` | find the number by comparing each bit of the frame with each bit shown |
| `digits/`: `features.py`, `integers.py`, `codes.py` | list those bits; how wide an integer is; what codes mean |
| `digits/segments/` | finds segments whose wires lie anywhere, reads them, and says which digits to show for that |
| `digits/offset_search.py` | finds a constant that is added to every byte |
| `digits/number_fit.py` | says where the number is, and reads it |
| `digits/bars.py` | finds a bar graph beside the number, which says nothing more |
| `modes/` | finds which bits say unit, point, sign and symbols (`mode_fields.py`), and which none (`silent_bits.py`) |
| `learning.py`, `lesson.py` | put moments and frames together, and hold what was learned |
| `digits_lesson.py`, `modes_lesson.py` | there: learn the digits, then the rest; name late answers and slips |
| `second_display.py` | learns a second number from what the first one leaves of the frames |
| `line_lesson.py` | the same for meters that send text |
| `questions/` | chooses what to show next: where the hypotheses that are left differ most |
| `profile_text.py`, `display_text.py`, `proof.py` | write the profile, and prove it on the same bytes |
| `dialogue.py` | the conversation in the terminal |
"""
