"""The coordinator's commands."""
