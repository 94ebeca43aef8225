"""Troubleshooting: common problems, answered with the numbers of the build."""
