"""The one way to engraved music: choose the bars, engrave them, put marks on them."""
