"""What is looked at before an uploaded file is stored; see makerlab.uploads."""

from makerlab.uploads import MEGABYTE, NAME_MAX, UploadRefused, check_size, clean_name, sha256_of

__all__ = ["MEGABYTE", "NAME_MAX", "UploadRefused", "check_size", "clean_name", "sha256_of"]
