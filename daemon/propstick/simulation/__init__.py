"""An invented garden with honest physics: weather, cold frames, probes and people, all from a seed.

Used by `propstick demo`, by the benches of the forecasting model and by the count of notices. It shares
no equation with `propstick.physics.box`: a model tested on its own equations would always look good.
"""
