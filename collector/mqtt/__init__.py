"""Collects from MQTT brokers; the only package of the collector that knows paho."""
