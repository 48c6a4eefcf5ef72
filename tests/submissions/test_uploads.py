"""File names, sizes and fingerprints."""

from __future__ import annotations

import hashlib

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile

from submissions.uploads import NAME_MAX, UploadRefused, check_size, clean_name, sha256_of


@pytest.mark.parametrize(
    ("given", "kept"),
    [
        ("wheel.stl", "wheel.stl"),
        ("../../etc/passwd", "passwd"),
        ("C:\\Users\\Pip\\wheel 2.stl", "wheel 2.stl"),
        ("räder(1).stl", "räder(1).stl"),
        ("ra\u0308der.stl", "räder.stl"),  # NFC: one sign, not a letter and a mark
        ("<b>wheel</b>.stl", "b.stl"),
        ("wheel\x00\n.stl", "wheel.stl"),
        ("Dr. Wheel - final.stl", "Dr. Wheel - final.stl"),
        ("wheel\u202elts.exe", "wheel-lts.exe"),  # a sign that turns the reading direction
        ("....stl", "stl"),
        ("///", "part"),
        ("", "part"),
        (None, "part"),
    ],
)
def test_names_are_cleaned(given, kept):
    assert clean_name(given) == kept


@pytest.mark.parametrize("given", ["x" * 300 + ".stl", "x" * 300, "a." + "b" * 300, ". " * 200 + "x"])
def test_names_are_bounded_and_keep_their_ending(given):
    kept = clean_name(given)
    assert 0 < len(kept) <= NAME_MAX
    if given.endswith(".stl"):
        assert kept.endswith(".stl")


@pytest.mark.parametrize(("size", "taken"), [(0, False), (1, True), (100, True), (101, False)])
def test_size_has_two_ends(settings, size, taken):
    settings.UPLOAD_MAX_BYTES = 100
    file = SimpleUploadedFile("a.stl", b"x" * size)
    if taken:
        assert check_size(file) == size
    else:
        with pytest.raises(UploadRefused):
            check_size(file)


def test_fingerprint_is_sha256_and_leaves_the_file_at_its_start():
    content = bytes(range(256)) * 1000
    file = SimpleUploadedFile("a.stl", content)
    assert sha256_of(file) == hashlib.sha256(content).hexdigest()
    assert file.read() == content
