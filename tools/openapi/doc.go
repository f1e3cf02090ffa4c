// Package openapi judges the workbench's API from outside: a validator that is not ours
// reads the OpenAPI document that the server gives, a client drawn at random from that
// document sends requests to the demo shop, and each answer is held against the document
// again. It lies in the module of tools, so that the product's own module needs no validator.
package openapi
