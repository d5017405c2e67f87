"""Faults on cue: chosen requests to a played site go wrong, as a plan says."""
