// Package browser drives the workbench in a real headless Chromium: the stories of the
// bay from the first tap to the end, with the network taken away in the middle. It
// lies in the module of tools so that the product's own module needs no browser;
// .ci/browser runs it, and says NOT RUN where there is no Chromium.
package browser
