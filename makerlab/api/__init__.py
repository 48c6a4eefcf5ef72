"""The public interface: a JSON API with tokens, and webhooks. On top of all apps; none of them knows it."""
