"""Looks learned: from frames that were graded by hand, and from a reference picture."""
