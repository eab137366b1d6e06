"""The layings, one module each."""
