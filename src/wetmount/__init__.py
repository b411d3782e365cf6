"""Wetmount: a workbench for the ornamental-fish health practitioner."""
