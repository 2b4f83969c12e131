"""Where the command boltbook begins. Ctrl-C is answered in a sentence from the first moment, also while libraries are still being loaded."""
from __future__ import annotations


def main() -> None:
    """Run the command line; once its answer is given Ctrl-C has nothing left to stop."""
    try:
        from workbook_template.cli import cli
        cli(prog_name="boltbook")
    except KeyboardInterrupt:
        _stopped()
    finally:
        import signal
        signal.signal(signal.SIGINT, signal.SIG_IGN)


def _stopped() -> None:
    import sys

    from workbook_template.ports.swap import standing
    print(f"Stopped. {standing()}", file=sys.stderr)
    raise SystemExit(3)


if __name__ == "__main__":
    main()
