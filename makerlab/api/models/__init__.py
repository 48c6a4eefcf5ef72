"""Tokens of the interface, answers kept for requests that are sent twice, webhooks and what was told them."""

from makerlab.api.models.tokens import ApiToken, KeptAnswer, digest_of
from makerlab.api.models.webhooks import Delivery, Happening, Webhook

__all__ = ["ApiToken", "Delivery", "Happening", "KeptAnswer", "Webhook", "digest_of"]
