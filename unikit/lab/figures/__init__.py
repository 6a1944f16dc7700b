"""The pictures of the kit: each draws one study's result, beside the side view of the machine."""

from . import gearing, heat, leverage, motor, review, ride, side

PICTURES = {"gearing": gearing.picture, "leverage": leverage.picture, "motor": motor.picture, "heat": heat.picture}
PICTURES |= {"range": ride.picture, "review": review.picture, "side": side.picture}

__all__ = ["PICTURES", "gearing", "heat", "leverage", "motor", "review", "ride", "side"]
