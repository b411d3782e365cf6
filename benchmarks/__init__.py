"""Every timing that is quoted anywhere. Not part of the package."""
