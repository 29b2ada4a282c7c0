"""One conversation: what a text means now and what follows."""
