"""The report of an issue: one page that needs nothing beside it, for the client's file and the drafter's desk."""
