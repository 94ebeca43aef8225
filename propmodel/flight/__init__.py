"""Answers about a craft in the air: level flight, minutes, response, where the power goes."""
