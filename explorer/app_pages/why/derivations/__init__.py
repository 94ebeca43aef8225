"""Worked examples: a result computed step by step, independently of `propmodel`."""
