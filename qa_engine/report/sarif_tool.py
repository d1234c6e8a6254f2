"""The tool that a SARIF log names: the engine, each edition that judged, each plugin."""

from typing import Any

import qa_engine
from qa_engine.plain_words import subject_in_words
from qa_engine.plugin_host import Plugin
from qa_engine.report.handbook import Entry, entry_of
from qa_engine.report.handbook_as_markdown import markdown_rule
from qa_engine.report.outcome import Report
from qa_engine.report.sarif_parts import LEVELS, file_place, message, stated
from qa_engine.rulesets import Edition, Rule


def tool_of(report: Report) -> dict[str, Any]:
    """Return the tool: editions of rule sets come first among its extensions, then plugins."""
    inspection = report.inspection
    version = qa_engine.__version__
    driver = {"name": "qa-engine", "version": version, "semanticVersion": version}
    extensions = [*map(_edition, inspection.editions), *map(_plugin, inspection.plugins)]
    return {"driver": driver, "extensions": extensions} if extensions else {"driver": driver}


def rule_id(rule_set: str, rule: str) -> str:
    """Return what a rule is called in a log: one hierarchical name in all editions."""
    return f"{rule_set}/{rule}"


def _edition(edition: Edition) -> dict[str, Any]:
    return {
        "name": edition.rule_set,
        "version": edition.edition,
        "organization": edition.owner,
        "shortDescription": message(edition.title),
        "rules": [_descriptor(rule) for rule in edition.rules],
        "properties": stated(
            sha256=edition.sha256,
            inForceFrom=str(edition.in_force_from),
            inForceUntil=edition.in_force_until and str(edition.in_force_until),
            file=file_place(edition.source)["uri"],
        ),
    }


def _plugin(plugin: Plugin) -> dict[str, Any]:
    told = stated(sha256=plugin.sha256, state=plugin.state, reason=plugin.reason)
    return {"name": f"plugin {plugin.name}", "version": plugin.version or "0", "properties": told}


def _descriptor(rule: Rule) -> dict[str, Any]:
    entry = entry_of(rule)
    about = f"{entry.at_a_glance} It judges {subject_in_words(rule.subject)}."
    help_text = " ".join(text for text in (entry.must, rule.correction, rule.caution) if text)
    return {
        "id": rule_id(rule.rule_set, rule.rule),
        "shortDescription": message(rule.title),
        "fullDescription": message(about),
        "help": message(help_text, markdown=markdown_rule(entry)),
        "defaultConfiguration": {"level": LEVELS[rule.grading]},
        "properties": _properties(entry),
    }


def _properties(entry: Entry) -> dict[str, Any]:
    rule = entry.rule
    limits = {
        name: stated(
            written=limit.written,
            basis=limit.basis,
            reviewBy=limit.review_by and str(limit.review_by),
        )
        for name, limit in rule.limits.items()
    }
    return stated(
        grading=rule.grading,
        subject=rule.subject,
        appliesIf=rule.applies_if.text if rule.applies_if else None,
        requires=rule.requires.text,
        limits=limits or None,
        basis=rule.basis,
        permission=rule.permission,
        decision=str(rule.decision),
    )
