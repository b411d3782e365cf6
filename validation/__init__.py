"""Slow comparisons with published cases and independent implementations. Not part of the package."""
