"""Tokens of the public interface and the answers kept for requests that are sent twice."""

from makerlab.api.models.tokens import ApiToken, KeptAnswer, digest_of

__all__ = ["ApiToken", "KeptAnswer", "digest_of"]
