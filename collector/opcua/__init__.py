"""Collects from OPC UA servers; the only package of the collector that knows asyncua."""

from collector.opcua.nodes import check_node
from collector.opcua.security import Security, check_security
from collector.opcua.source import OpcUaSource

__all__ = ["OpcUaSource", "Security", "check_node", "check_security"]
