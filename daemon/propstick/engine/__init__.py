"""From readings to decisions: one pure function, `pipeline.advance`, for watch, replay and tests alike.

A block of rows goes through these stages, in order:

1. `quality`: each probe's readings corrected and checked; flags say why one must not be used.
2. `places`: what is believed of each place: the median of its good probes, carried as long as allowed.
3. `trends`: how fast air and soil rise.
4. `foresight`: forecasts, and the conditions that rest on them.
5. `rules`: which condition holds on which row.
6. `timeline`: from conditions to alarms (`alarms` has the state table), notices and briefs.

Stages 1 to 5 work on whole arrays; the timeline steps through the few rows at which something happens.
"""
