"""From recordings, or lines already drawn, to a track."""
