"""Collects from OPC UA servers; the only package of the collector that knows asyncua."""

from collector.opcua.access import Access
from collector.opcua.nodes import check_node
from collector.opcua.security import Security, parse_security
from collector.opcua.source import OpcUaSource

__all__ = ["Access", "OpcUaSource", "Security", "check_node", "parse_security"]
