"""One job from its file to its issue, and many jobs beside one another."""
