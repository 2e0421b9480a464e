"""The tables of `skill_day`: nights and days, ours beside plain methods and ceilings."""

from __future__ import annotations

import numpy as np

from propstick.engine import scores
from propstick.units import BoolArray, FloatArray

CEILING_HOUR = 2
"""Hours after sunset at which the night's ceiling is worked out."""
HIT = 0.9
"""Share of the frosts to be warned of when methods are set beside one another."""
MEMBERS = 12
"""Other nights that a night is foretold from by who knows all but how it goes on."""


def print_nights(title: str, d: dict[str, FloatArray]) -> None:
    print(f"\n{title}: lowest air from issue to the night's end; MAE °C")
    print("  box: the part of our error that is not the outside air's own")
    print("  h after  n     mean   last    FAO    ours   box   covers  width   bias")
    print("  sunset         drop   drop")
    for hour in (-1, 0, 1, 2, 4, 6, 8, 10):
        m = (d["hour"] == hour) & (d["night"] >= 3) & (d["box"] >= 0)
        known = m & ~np.isnan(d["ours"] + d["fao"])
        if known.sum() < 20:
            continue
        came = d["came"][known]
        mae = [
            scores.mean_absolute_error(d[n][known], came) for n in ("mean_drop", "last_drop", "fao", "ours")
        ]
        held = scores.coverage(d["low"][known] - 1e-9, d["high"][known] + 1e-9, came)
        width, bias = (d["high"] - d["low"])[known].mean(), (d["ours"] - d["came"])[known].mean()
        figures = "  ".join(f"{v:5.2f}" for v in mae)
        part = np.abs((d["ours"] - d["came"] - d["outside_error"])[known])
        box = f"{np.nanmean(part):5.2f}" if (~np.isnan(part)).any() else "    -"
        print(f"  {hour:4d}  {known.sum():6d}  {figures}  {box}   {held:4.0%}   {width:5.2f}  {bias:+5.2f}")
    _print_way(d)
    for hour in (-1, 2):
        m = (d["hour"] == hour) & (d["night"] >= 3) & (d["box"] >= 0)
        frost = d["came"][m] < 0.0
        if frost.sum() < 10:
            continue
        line = [f"  frost at 0 °C, {hour:+d} h, {frost.sum()} of {m.sum()} nights:"]
        for p in (0.3, 0.4, 0.5):
            w = scores.warnings(d["p0"][m] > p, frost)
            line.append(f"p>{p} {w.hit_share:.0%} hit {w.false_share:.0%} false;")
        for name in ("mean_drop", "fao"):
            w = scores.warnings(d[name][m] < 0.0, frost)
            line.append(f"{name} {w.hit_share:.0%}/{w.false_share:.0%};")
        print(" ".join(line))
        _print_equal_hits(d, m, frost)


def _print_equal_hits(d: dict[str, FloatArray], m: BoolArray, frost: BoolArray) -> None:
    """False warnings of each method once its threshold is such that nine frosts in ten are warned of.

    So that the ceiling, which gives a minimum and no probability, can be set beside the rest.
    """
    line = [f"    {HIT:.0%} hit:"]
    for name, values in (("ours", -d["p0"]), *((n, d[n]) for n in ("ceiling", "mean_drop", "fao"))):
        value = values[m]
        if np.isnan(value[frost]).any():
            continue
        warned = value <= np.quantile(value[frost], HIT, method="higher")
        line.append(f"{name} {scores.warnings(warned, frost).false_share:.0%} false;")
    print(" ".join(line))


def _print_way(d: dict[str, FloatArray]) -> None:
    """How far ours has gone from the best plain method to who knows box and weather, but not the future."""
    m = (d["hour"] == CEILING_HOUR) & (d["night"] >= 3) & (d["box"] >= 0)
    m &= ~np.isnan(d["ours"] + d["fao"] + d["ceiling"])
    if m.sum() < 20:
        return
    plain_c = min(
        scores.mean_absolute_error(d[n][m], d["came"][m]) for n in ("mean_drop", "last_drop", "fao")
    )
    ours_c, top_c = (scores.mean_absolute_error(d[n][m], d["came"][m]) for n in ("ours", "ceiling"))
    print(
        f"  {CEILING_HOUR} h after sunset, {m.sum()} nights: best plain {plain_c:.2f}, ours {ours_c:.2f}, "
        f"ceiling (true box and weather, {MEMBERS} nights that began alike) {top_c:.2f}; "
        f"way {scores.way(plain_c, ours_c, top_c):.0%}"
    )


def print_days(title: str, d: dict[str, FloatArray]) -> None:
    print(f"\n{title}: highest air to sunset, clear sky, lid held (as-is: what came); MAE °C")
    print("  ceiling: the true box on our outside path. way: share of the road from base to ceiling")
    print("  issue   lid       n    yest.   base   ours   ceil.  way   covers  width   bias  outside")
    for k in range(4):
        for lid, name in enumerate(("closed", "propped", "open", "as-is")):
            m = (d["k"] == k) & (d["lid"] == lid) & (d["day"] >= d["day"].min() + 10) & (d["snow"] < 0.2)
            m &= ~np.isnan(d["ours"] + d["base"])
            if m.sum() < 20:
                continue
            came = d["came"][m]
            mae = [scores.mean_absolute_error(d[n][m], came) for n in ("yesterday", "base", "ours")]
            held = scores.coverage(d["low"][m], d["high"][m], came)
            outside = scores.mean_absolute_error(d["outside"][m], d["outside_came"][m])
            figures = "  ".join(f"{v:5.2f}" for v in mae)
            width, bias = (d["high"] - d["low"])[m].mean(), (d["ours"] - d["came"])[m].mean()
            rest = f"{held:4.0%}   {width:5.2f}  {bias:+5.2f}  {outside:5.2f}"
            top = scores.mean_absolute_error(d["ceiling"][m], came)
            # The best recent lift is of a shut lid: it is no fair base for any other.
            gone = scores.way(mae[1], mae[2], top) if lid == 0 else float("nan")
            print(f"  {k}  {name:8s} {m.sum():6d}  {figures}  {top:5.2f} {gone:5.0%}   {rest}")
    for k in (0, 1):
        m = (
            (d["k"] == k)
            & (d["lid"] == 0)
            & (d["day"] >= d["day"].min() + 10)
            & (d["snow"] < 0.2)
            & ~np.isnan(d["ours"] + d["base"])
        )
        hot = d["came"][m] > 27.0
        line = [f"  open before leaving (27 °C), issue {k}, {hot.sum()} of {m.sum()}:"]
        for name in ("yesterday", "base", "ours"):
            w = scores.warnings(d[name][m] > 27.0, hot)
            line.append(f"{name} {w.hit_share:.0%} hit {w.false_share:.0%} false;")
        print(" ".join(line))
