"""Templates without the indentation they are written with: a browser reads every run of white space as one blank, so
it would only be sent, a tenth to a quarter of each page. No ``<pre>`` is written over several lines in a template (a
test guards it), and what a page fills in comes later and stays as it is."""

from __future__ import annotations

import re

from django.template import Origin
from django.template.loaders.app_directories import Loader as AppLoader

INDENTED = re.compile(r"\n[ \t]+")


class Loader(AppLoader):
    """Reads templates from the apps, each line from its first letter on. Lines are kept, so that errors name them."""

    def get_contents(self, origin: Origin) -> str:
        return INDENTED.sub("\n", super().get_contents(origin))
