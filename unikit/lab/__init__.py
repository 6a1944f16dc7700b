"""What people see: one style, one way to draw, one panel mechanism, exercises and reports."""
