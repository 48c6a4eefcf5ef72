"""docker-compose.yml, Dockerfile and the proxy's configuration, as far as they can be checked where no container engine
runs: against the compose specification (compose-spec, PyPI), by linters (compose-lint, whose rules are OWASP's; tally),
and each command and variable in them against the code."""

from __future__ import annotations

import os
import re
import shlex
import shutil
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
import waitress.adjustments
import yaml
from celery.bin.celery import celery as celery_program
from django.core.management import get_commands, load_command_class

from makerlab.environment import Environment
from makerlab.serving import arguments as server_arguments
from makerlab.work.lanes import Lane
from tests.conftest import missing

ROOT = Path(__file__).resolve().parents[2]
COMPOSE, DOCKERFILE, PROXY = ROOT / "docker-compose.yml", ROOT / "Dockerfile", ROOT / "deploy" / "nginx.conf"
PLAN: dict[str, Any] = yaml.safe_load(COMPOSE.read_text())
SERVICES: dict[str, Any] = PLAN["services"]
OURS = {name: service for name, service in SERVICES.items() if "build" in service}
ONCE = {"migrate", "bucket"}
VARIABLES = {str(field.validation_alias) for field in Environment.model_fields.values()}


def filled_in(text: str) -> str:
    """With every variable replaced, as compose does before it reads the file: ``:-`` gives what stands without it."""
    text = re.sub(r"\$\{(\w+):([-?])([^}]*)\}", lambda found: found[3] if found[2] == "-" else "a-value", text)
    return text.replace("$$", "$")


def test_the_compose_file_is_one_by_the_specification():
    try:
        from compose_spec import PyCompose
    except ImportError as error:
        missing(f"the compose specification is not installed: {error}")
    merged = yaml.safe_load(filled_in(COMPOSE.read_text()))  # the reader below merges one level only
    made = PyCompose.from_yaml(yaml.safe_dump(merged))
    made.validate()
    assert set(made.service_names()) == set(SERVICES)


def lint(name: str, *arguments: str) -> None:
    beside = Path(sys.executable).with_name(name)
    program = str(beside) if beside.exists() else shutil.which(name)
    if program is None:
        missing(f"{name} is not installed")
    environment = {**os.environ, "NO_COLOR": "1"}
    done = subprocess.run([str(program), *arguments], capture_output=True, text=True, check=False, env=environment)
    assert done.returncode == 0, done.stdout + done.stderr


def test_the_compose_linter_finds_nothing_above_what_is_told_below():
    """Left: images are named by tag, not by digest, since nobody here can ask a registry which digest is good."""
    lint("compose-lint", "--fail-on", "high", str(COMPOSE))


def test_the_dockerfile_linter_warns_of_nothing():
    lint("tally", "lint", "--slow-checks=off", "--fail-level=warning", "--no-config", str(DOCKERFILE))


def test_the_proxys_configuration_is_one_by_the_proxy_itself():
    program = shutil.which("nginx", path=os.environ["PATH"] + ":/usr/sbin")
    if program is None:
        pytest.skip("nginx is not installed, so its configuration was read by nobody")
    done = subprocess.run([program, "-t", "-c", str(PROXY)], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr


@pytest.mark.parametrize("name", SERVICES)
def test_each_service_is_bounded(name):
    service = SERVICES[name]
    assert service["mem_limit"]
    assert service["cpus"]
    assert service["pids_limit"]
    assert service["read_only"] is True
    assert service["cap_drop"] == ["ALL"]
    assert service["security_opt"] == ["no-new-privileges:true"]
    assert "privileged" not in service
    if name != "store":  # root of its own container, without any capability
        assert not str(service["user"]).startswith(("0", "root"))
    if name not in ONCE | {"store"}:
        assert service["healthcheck"]["test"]
    assert service["restart"] == ("no" if name in ONCE else "unless-stopped")
    for dependency in service.get("depends_on", {}):
        assert dependency in SERVICES
    for volume in service.get("volumes", ()):
        place = volume.split(":")[0]
        assert place in PLAN["volumes"] or (ROOT / place).exists()


def test_only_the_proxy_is_reached_from_outside_and_that_from_this_machine_only():
    assert {name for name, service in SERVICES.items() if "ports" in service} == {"proxy"}
    assert all(port.startswith("127.0.0.1:") for port in SERVICES["proxy"]["ports"])
    assert PLAN["networks"]["inside"]["internal"] is True
    readers = {"measure", "plan", "consider", "web"}  # those whose children read files from outside
    assert all(SERVICES[name]["networks"] == ["inside"] for name in readers)
    assert {name for name, service in SERVICES.items() if "outside" in service.get("networks", ())} == {"deliver"}


@pytest.mark.parametrize("name", OURS)
def test_every_variable_is_one_the_code_reads(name):
    assert set(OURS[name]["environment"]) <= VARIABLES


@pytest.mark.parametrize("name", OURS)
def test_every_command_exists(name):
    command = list(OURS[name]["command"])
    if command[:2] == ["python", "manage.py"]:
        assert command[2] in get_commands()
        parser = load_command_class(get_commands()[command[2]], command[2]).create_parser("manage.py", command[2])
        parser.parse_args(command[3:])
    elif command[0] == "waitress-serve":
        given, rest = waitress.adjustments.Adjustments.parse_args(command[1:])[:2]
        waitress.adjustments.Adjustments(
            **{key: value for key, value in given.items() if key not in {"help", "call", "app"}}
        )
        assert set(server_arguments()) <= set(command)
        assert rest or command[-1] == "makerlab.wsgi:application"
    else:
        assert command[:3] == ["celery", "-A", "makerlab"]
        part = celery_program.commands[command[3]]
        part.make_context(command[3], command[4:], resilient_parsing=True)


def test_every_lane_has_a_worker_and_the_clock_is_alone():
    served = [
        queue
        for service in OURS.values() if "--queues" in service["command"]
        for queue in service["command"][service["command"].index("--queues") + 1].split(",")
    ]  # fmt: skip
    assert sorted(served) == sorted(["celery", *Lane.values])
    assert SERVICES["clock"].get("scale", 1) == 1


def test_a_worker_has_the_memory_its_children_may_take():
    child_mb = Environment.model_fields["child_memory_mb"].default
    for name in ("measure", "plan", "consider"):
        command = SERVICES[name]["command"]
        children = int(command[command.index("--concurrency") + 1])
        assert int(SERVICES[name]["mem_limit"].removesuffix("g")) * 1024 > children * child_mb


def test_the_image_is_built_as_the_project_says():
    text = DOCKERFILE.read_text().replace("\\\n", " ")
    lines = [line for line in text.splitlines() if line and not line.startswith("#")]
    assert lines[-3].split()[1].split(":")[0] == OURS["web"]["user"].split(":")[0], "the user comes before the command"
    for words in (shlex.split(line) for line in lines if line.startswith("RUN")):
        for place, word in enumerate(words):
            if word == "manage.py":
                assert words[place + 1] in get_commands()
            if word.startswith("requirements"):
                assert (ROOT / word).exists()
    named = re.findall(r"\b(MAKERLAB_\w+)=", text)
    assert set(named) <= VARIABLES


def test_the_proxy_takes_the_largest_file_the_site_takes():
    most = int(re.search(r"client_max_body_size (\d+)m;", PROXY.read_text())[1])
    largest = max(Environment.model_fields[name].default for name in ("upload_max_mb", "prepared_max_mb"))
    assert most > largest
    web = " ".join(SERVICES["web"]["command"])
    assert int(re.search(r"--max-request-body-size=(\d+)", web)[1]) >= most * 1024 * 1024
