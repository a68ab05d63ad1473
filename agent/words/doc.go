// Package words puts what bayward knows into sentences, in the reader's language
// and units.
//
// The core gives codes, reasons and numbers. Every sentence for a person is
// written here, once for each language, and used by the page, MQTT, the notices,
// the records and the commands. English is a language like the others.
//
// A language is one file NAME.json in this directory. To add one, translate
// en.json into it. It can then be configured and chosen on the page, and the
// tests name each missing sentence.
package words
