"""Setpoints and delays of the alarms: what may be set, the defaults behind it, and what a crop bears."""

from __future__ import annotations

from dataclasses import dataclass, fields, replace


@dataclass(frozen=True, kw_only=True)
class Limits:
    """Setpoints and delays. None = not set here: the next wider source decides.

    Order: the box's own `[box.alarms]`, the site's `[alarms]`, what is sown, `DEFAULT_LIMITS`.

    Attributes:
        heat_c, frost_c, soil_cold_c, soil_hot_c: Setpoints of the alarms of these names [°C].
        prop_c: From here on the lid should be propped [°C].
        deadband_c: So far back past its setpoint a value must come before the alarm returns [K].
        fast_rise_c, fast_rise_minutes, fast_rise_within_c: A rise of so much in that time is told, where
            `heat_c` is no farther off than the last [K].
        no_shelter_c: A box so much colder than the outside gives no shelter [K].
        disagree_c: Probes of one place that lie farther apart disagree [K].
        silent_minutes, stuck_air_hours, stuck_soil_hours: How long without a reading, or with the same.
    """

    heat_c: float | None = None
    prop_c: float | None = None
    frost_c: float | None = None
    soil_cold_c: float | None = None
    soil_hot_c: float | None = None
    dry_pct: float | None = None
    deadband_c: float | None = None
    on_delay_s: int | None = None
    off_delay_s: int | None = None
    fast_rise_c: float | None = None
    fast_rise_minutes: float | None = None
    fast_rise_within_c: float | None = None
    no_shelter_c: float | None = None
    disagree_c: float | None = None
    silent_minutes: float | None = None
    stuck_air_hours: float | None = None
    stuck_soil_hours: float | None = None

    def over(self, wider: Limits) -> Limits:
        """These limits, with `wider`'s wherever these say nothing."""
        mine = {f.name: getattr(self, f.name) for f in fields(self)}
        return replace(wider, **{name: value for name, value in mine.items() if value is not None})


DEFAULT_LIMITS = Limits(
    heat_c=27.0,  # advice for frames spans 21–27 °C; see the crop file for sources
    prop_c=24.0,
    frost_c=1.0,  # 0 °C damage + 0.5 °C probe error + leaf below air on a clear night
    soil_cold_c=0.0,
    soil_hot_c=30.0,
    dry_pct=20.0,
    deadband_c=1.0,
    on_delay_s=120,
    off_delay_s=300,
    fast_rise_c=8.0,
    fast_rise_minutes=15.0,
    fast_rise_within_c=8.0,
    no_shelter_c=0.5,
    disagree_c=3.0,
    silent_minutes=10.0,
    stuck_air_hours=6.0,
    stuck_soil_hours=48.0,
)
"""Common practice, no source, unless a comment says otherwise."""


@dataclass(frozen=True, kw_only=True)
class CropLimits:
    """What a crop bears, as the engine needs it. None where no published figure exists."""

    crop: str
    frost_c: float | None = None
    heat_c: float | None = None
    soil_cold_c: float | None = None
    soil_hot_c: float | None = None


UNKNOWN_CROP = CropLimits(crop="unknown")
