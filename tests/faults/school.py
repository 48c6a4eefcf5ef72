"""Makes the tests' small world in the database of the environment. Run as a program; prints how its student gets in."""

from __future__ import annotations

import json
import sys

import django


def main() -> dict[str, str]:
    django.setup()
    from django.conf import settings
    from django.core.management import call_command
    from django.test import Client
    from django.urls import reverse

    from tests.world import make_world

    call_command("migrate", verbosity=0)
    world = make_world()
    client = Client()
    client.force_login(world.student)
    return {
        "cookie": f"{settings.SESSION_COOKIE_NAME}={client.cookies[settings.SESSION_COOKIE_NAME].value}",
        "csrf": settings.CSRF_COOKIE_NAME,
        "upload": reverse("submissions:submission-create", args=[world.assignment.pk, world.wheel.pk]),
        "page": reverse("submissions:part-list"),
    }


if __name__ == "__main__":
    json.dump(main(), sys.stdout)
