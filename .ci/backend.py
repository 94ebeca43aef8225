"""setuptools, with the list of files for the source archive beside this file: the top level holds no MANIFEST.in."""

from setuptools.build_meta import *  # noqa: F403
from setuptools.command.egg_info import manifest_maker

manifest_maker.template = ".ci/source-archive.in"
