"""One question about one build in one case, answered in numbers."""
