"""Starter rule sets, as YAML files."""
