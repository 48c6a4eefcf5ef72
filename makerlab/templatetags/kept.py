"""What is the same on every page and for everybody is made once for each language."""

from __future__ import annotations

from django import template
from django.template.context import Context
from django.utils.safestring import SafeString
from django.utils.translation import get_language

register = template.Library()


class KeptNode(template.Node):
    """What stands between ``{% kept %}`` and ``{% endkept %}``, by language. It is made without a context: nothing of a
    person or of a page can get in. Threads that make it at the same time make the same."""

    def __init__(self, nodelist: template.NodeList) -> None:
        self.nodelist = nodelist
        self.made: dict[str, SafeString] = {}

    def render(self, context: Context) -> SafeString:
        language = get_language() or ""
        if (made := self.made.get(language)) is None:
            nothing = Context()
            assert context.template is not None  # it is being rendered
            with nothing.bind_template(context.template):
                made = self.made[language] = self.nodelist.render(nothing)
        return made


@register.tag
def kept(parser: template.base.Parser, token: template.base.Token) -> KeptNode:
    """Draws what stands in it once for each language."""
    nodelist = parser.parse(("endkept",))
    parser.delete_first_token()
    return KeptNode(nodelist)
