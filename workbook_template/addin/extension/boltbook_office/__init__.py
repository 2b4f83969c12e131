"""What the extension does inside the office. Standard library only, in the syntax of Python 3.8."""
