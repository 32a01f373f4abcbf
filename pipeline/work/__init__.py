"""The stages put together for one job: two passes over the exports with the adjustment between them."""
