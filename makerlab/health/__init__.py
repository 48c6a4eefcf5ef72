"""Whether the installation is well: probes, log lines, figures, and the doctor who says what is wrong."""
