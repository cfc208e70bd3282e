"""Case to Plan: candidates, the cheapest of them in time, aimed with real engines."""
