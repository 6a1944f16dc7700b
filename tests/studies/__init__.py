"""Tests of the studies; a package, because its rooms have the names of those of the formulas."""
