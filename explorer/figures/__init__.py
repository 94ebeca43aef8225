"""Chart functions shared by the pages: each returns a plotly figure or HTML."""
