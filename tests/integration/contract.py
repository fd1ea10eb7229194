"""Answers held against the contract that the daemon serves (/openapi.json), by Debian's
jsonschema (JSON Schema 2020-12). Used by the rig for every answer in JSON that a test reads.
"""
import json

import jsonschema

SAMPLE = 500  # of longer arrays head, middle and tail are looked at: checking is slow


def sampled(value):
    if isinstance(value, dict):
        return {name: sampled(member) for name, member in value.items()}
    if not isinstance(value, list):
        return value
    if len(value) > SAMPLE:
        part, middle = SAMPLE // 3, len(value) // 2
        value = value[:part] + value[middle:middle + part] + value[-part:]
    return [sampled(item) for item in value]


class Contract:
    def __init__(self, document):
        self.document = document
        self.resolver = jsonschema.RefResolver("", document)
        self.validators = {}

    def schema(self, path, status, media):
        """The reference that the contract has for such an answer."""
        responses = self.document["paths"].get(path, {}).get("get", {}).get("responses", {})
        response = responses.get(str(status), {"$ref": "#/components/responses/Problem"})
        if "$ref" in response:
            response = self.document["components"]["responses"][response["$ref"].split("/")[-1]]
        if media not in response["content"]:
            raise ValueError(f"{path} may not answer {status} as {media}")
        return response["content"][media]["schema"]["$ref"]

    def faults(self, ref, value):
        """What of a value is not as a schema says; none where it is."""
        if ref not in self.validators:
            self.validators[ref] = jsonschema.Draft202012Validator({"$ref": ref},
                                                                   resolver=self.resolver)
        return [f"{'/'.join(map(str, e.absolute_path))}: {e.message[:300]}"
                for e in self.validators[ref].iter_errors(sampled(value))]

    def check(self, target, answer):
        """Raises where an answer in JSON is not as the contract says."""
        media = answer.headers.get("content-type", "").split(";")[0]
        if media not in ("application/json", "application/problem+json") or not answer.body:
            return
        ref = self.schema(target.split("?")[0], answer.status, media)
        faults = self.faults(ref, json.loads(answer.body))
        if faults:
            raise ValueError(f"{target}: {answer.status} is not as {ref} says: {faults[:5]}")
