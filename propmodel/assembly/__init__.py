"""The assembled craft: `Build`, its written record, the demo craft."""
