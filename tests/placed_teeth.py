"""Planets put into a train by hand: teeth as solid bodies, pushed against each other; nothing of the kit's own rules of assembly."""

from math import cos, pi, radians, sqrt, tan

import numpy as np

ANGLE = radians(20.0)


def involute(angle):
    return np.tan(angle) - angle


class Teeth:
    """One gear in modules, by the half angle of its teeth at each radius, from the string that unwinds; roots run down radially."""

    def __init__(self, teeth, shift, inside=False, tip=None):
        way = -1 if inside else 1
        self.teeth, self.inside = teeth, inside
        self.pitch, self.base = teeth / 2, teeth / 2 * cos(ANGLE)
        self.tip = self.pitch + way + shift if tip is None else tip
        self.root = self.pitch - way * 1.25 + shift
        self.at_base = (pi / 2 + way * 2 * shift * tan(ANGLE)) / teeth + way * involute(ANGLE)

    def half(self, radius):
        """Half angle of a tooth at radii."""
        way = -1 if self.inside else 1
        steep = np.arccos(self.base / np.maximum(radius, self.base))
        return self.at_base - way * involute(steep)

    def outline(self, count=60):
        """Points on both flanks of every tooth and along the tips: radius and angle."""
        radius = np.linspace(min(self.root, self.tip), max(self.root, self.tip), count)
        half = self.half(radius)
        over = np.linspace(-1, 1, 15) * self.half(np.array([self.tip]))
        radius = np.concatenate([radius, radius, np.full(15, self.tip)])
        angle = np.concatenate([half, -half, over])
        centres = 2 * pi / self.teeth * np.arange(self.teeth)
        return np.tile(radius, self.teeth), (centres[:, None] + angle).ravel()

    def depth(self, x, y, turned):
        """How deep points lie in the teeth, along the circle; below 0 outside."""
        radius, angle = np.hypot(x, y), np.arctan2(y, x) - turned
        off = np.abs((angle + pi / self.teeth) % (2 * pi / self.teeth) - pi / self.teeth)
        reached = radius > self.tip if self.inside else radius < self.tip
        return np.where(reached, radius * (self.half(radius) - off), -1.0)


def least_depth(sun, planet, ring, shift, place, ring_tip=None, steps=240):
    """The smallest depth to which teeth must be pushed into each other to bring a planet in at a place, and its turn.

    The sun has a tooth, and the ring a tooth or a space, in the zero direction, as the planet there needs it.
    """
    small, wheel = Teeth(planet, shift), Teeth(sun, -shift)
    around = Teeth(ring, shift, inside=True, tip=ring_tip)
    far = (sun + planet) / 2
    radius, angle = small.outline()
    turned_ring = planet * pi / ring  # the planet at zero: a space towards the sun, so tooth or space towards the ring
    best = (np.inf, 0.0)
    for turn in 2 * pi / planet * np.arange(steps) / steps:
        x = far * np.cos(place) + radius * np.cos(angle + turn)
        y = far * np.sin(place) + radius * np.sin(angle + turn)
        depth = max(wheel.depth(x, y, 0.0).max(), around.depth(x, y, turned_ring).max())
        best = min(best, (depth, turn))
    return best


def tips_apart(sun, planet, shift, one, other):
    """Distance of two planets' tip circles."""
    far = (sun + planet) / 2
    chord = sqrt((far * (cos(one) - cos(other))) ** 2 + (far * (np.sin(one) - np.sin(other))) ** 2)
    return chord - (planet + 2 * (1 + shift))
