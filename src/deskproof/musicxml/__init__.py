"""The only folder that knows MusicXML elements: container, reader, editor."""
