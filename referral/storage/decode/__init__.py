"""Films and photos as they are uploaded: judged by content, decoded, windowed, described."""
