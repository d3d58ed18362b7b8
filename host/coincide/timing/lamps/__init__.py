"""Skew, lag and exposure from frames of the row of lamps."""
