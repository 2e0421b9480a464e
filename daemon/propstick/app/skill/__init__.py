"""How good the forecasts were: each kind beside what came, and beside the plain methods it must beat."""

from propstick.app.skill.report import skill_of

__all__ = ["skill_of"]
