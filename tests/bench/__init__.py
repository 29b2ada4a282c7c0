"""Timings, never part of a pass/fail test."""
