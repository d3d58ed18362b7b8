"""The optics of the splitter: how large it must be, where the pupils belong, what its thickness and faces do."""
