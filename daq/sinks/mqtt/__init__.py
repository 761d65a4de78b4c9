"""MQTT: the sink that publishes a bench, and the feed that follows one. aiomqtt is imported when they connect."""
