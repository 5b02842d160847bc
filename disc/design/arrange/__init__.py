"""Which notes of a tune which teeth play: the programme, its pieces and its proof."""
