"""What is said and in which order: flow files, steps, reply kinds, the machine and the checker."""
