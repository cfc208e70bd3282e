"""Flying and measuring by other means what was judged: how far its numbers can be trusted."""
