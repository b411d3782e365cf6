"""The reference: what is known of conditions, findings, hosts and limits, every row with its basis and sources."""

from wetmount.reference.loader import Problem, Reference, load_reference

__all__ = ["Problem", "Reference", "load_reference"]
