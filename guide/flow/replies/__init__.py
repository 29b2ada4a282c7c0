"""Reply kinds: how a text is read, one small class a kind."""
