"""Practice: drills with surprises over the same talk, a score that teaches, the trainer's board, the debrief."""
