"""Forecast: when the outlet of each tank reaches its limit, and what follows from it."""
