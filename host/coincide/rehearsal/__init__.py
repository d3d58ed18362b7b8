"""Invented recordings, from physics of their own: what a sound input would have heard of two bodies that never were.

Shares no formula with the analysis in `coincide.recording`; the linter checks that.
"""
