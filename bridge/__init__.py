"""The bridge between an MQTT broker and motorised roller shades."""


def __getattr__(name: str) -> str:
    """Give `__version__` from the installed distribution, read only when asked for.

    Raises:
        AttributeError: the package has no such name.
        importlib.metadata.PackageNotFoundError: hembar is not installed.
    """
    if name == "__version__":
        from importlib.metadata import version  # noqa: PLC0415  # 15 ms that most commands need not pay

        return version("hembar")
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
