"""The front end: pages over the engine."""
