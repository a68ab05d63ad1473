// Package words says what bayward knows, in the reader's language and units.
//
// The core gives codes, reasons and numbers; every sentence for a person is
// worded here, once for each language, and used by the page, MQTT, the notices,
// the records and the commands. English is a language like the others.
//
// A language is one file NAME.json beside this one. To add one, translate
// en.json into it: it can then be configured and chosen on the page, and the
// tests name each sentence that is missing.
package words
