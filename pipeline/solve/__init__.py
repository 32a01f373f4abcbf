"""Each session's shift from its ties, the marks compared, and what that proves of the session."""
