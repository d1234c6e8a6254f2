"""Plugins that ship with the engine; they come in by the door that everybody uses."""
