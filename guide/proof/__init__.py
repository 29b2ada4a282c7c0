"""The proof of a flow book: every state its talk can reach is visited, and the trade's rules are held against each."""
