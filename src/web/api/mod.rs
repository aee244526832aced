//! JSON under `/api/v1`, one file per resource, its OpenAPI beside the handler.
