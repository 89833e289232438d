"""Packpale: terrain and candidate plots in; scored land, an egg-shaped fence line and a priced dig-proof trench out."""


def __getattr__(name: str) -> str:
    # Looked up when asked for: the library behind it takes half the start of `packpale --help`.
    if name != "__version__":
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    from importlib.metadata import version

    return version("packpale")
