"""Workings: an answer by another way than the engine, step by step."""
