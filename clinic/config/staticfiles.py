"""Which static files are served: all but the README's pictures."""

from django.contrib.staticfiles.apps import StaticFilesConfig


class ServedFiles(StaticFilesConfig):
    ignore_patterns = [*StaticFilesConfig.ignore_patterns, "readme"]
