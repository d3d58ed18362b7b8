"""coincide makes two camera bodies expose the same moment."""
