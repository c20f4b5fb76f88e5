"""A world of its own for judging detection: circuits, meters and logs that share nothing with the analyzer's code.

`trace.py` draws a physical signal with its truth, `meter.py` reads it as meters do, `scene.py` puts both together as a
log, `families/` says what happens in each kind of log, `product.py` puts a log through `meterlog import` and `meterlog
analyze --json` as a user would, `judge.py` compares what is said with the truth, `table.py` adds it up.
"""
