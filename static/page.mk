# page.mk - the page: our own files copied as they are, beside the parts that come from npm.
#   make page         into $(OUT)/page, which `fettle serve` looks for beside the program
#   make screenshots  every view, in both themes and at three widths, into build/screenshots
# There is no build step: a bare import of an npm part becomes a relative path while it is copied,
# because the page's content security policy allows no import map.

PAGE       := $(OUT)/page
PAGE_FILES := $(filter-out static/package% static/page.mk,$(wildcard static/*.* static/*/*.js static/*/*.css))
PAGE_FILES := $(filter-out static/node_modules/%,$(PAGE_FILES))
PAGE_COPY  := $(PAGE_FILES:static/%=$(PAGE)/%)
PAGE_NPM   := $(PAGE)/npm/three.module.js $(PAGE)/npm/three.core.js $(PAGE)/npm/three-license.txt \
              $(PAGE)/npm/tus.js $(PAGE)/npm/tus-license.txt \
              $(addprefix $(PAGE)/npm/noble/,sha2.js _md.js _u64.js utils.js) $(PAGE)/npm/noble/license.txt

.PHONY: page page-stale
page: page-stale $(PAGE_COPY) $(PAGE_NPM)

# A file that was renamed or removed in static/ must not be served any longer.
page-stale:
	@test ! -d $(PAGE) || find $(PAGE) -type f | while read -r file; do \
	    case " $(PAGE_COPY) $(PAGE_NPM) " in *" $$file "*) ;; *) rm -f "$$file" ;; esac; done

static/node_modules: static/package.json static/package-lock.json static/.npmrc
	cd static && npm ci --no-audit --no-fund --ignore-scripts && touch node_modules

$(PAGE)/npm/three.%.js: static/node_modules
	@mkdir -p $(@D)
	cp static/node_modules/three/build/three.$*.js $@
$(PAGE)/npm/three-license.txt: static/node_modules
	@mkdir -p $(@D)
	cp static/node_modules/three/LICENSE $@

# As a module tus-js-client imports parts that browsers cannot read; what it has for them sets a global, which one line exports.
$(PAGE)/npm/tus.js: static/node_modules
	@mkdir -p $(@D)
	sed '/^\/\/# sourceMappingURL/d' static/node_modules/tus-js-client/dist/tus.min.js > $@
	printf '\nexport const { Upload } = globalThis.tus;\n' >> $@
$(PAGE)/npm/tus-license.txt: static/node_modules
	@mkdir -p $(@D)
	cat $(addprefix static/node_modules/,tus-js-client/LICENSE $(addsuffix /LICENSE*,js-base64 url-parse requires-port querystringify)) > $@

$(PAGE)/npm/noble/%.js: static/node_modules
	@mkdir -p $(@D)
	cp static/node_modules/@noble/hashes/$*.js $@
$(PAGE)/npm/noble/license.txt: static/node_modules
	@mkdir -p $(@D)
	cp static/node_modules/@noble/hashes/LICENSE $@

# npm's names, as written in our modules, to the copies in npm/, as seen from the module's folder
NPM_NAMES := three=three.module.js tus-js-client=tus.js @noble/hashes/sha2.js=noble/sha2.js
$(PAGE)/%.js: static/%.js
	@mkdir -p $(@D)
	sed "$(foreach name,$(NPM_NAMES),s#from '$(firstword $(subst =, ,$(name)))'#from '$(if $(findstring /,$*),../,./)npm/$(lastword $(subst =, ,$(name)))'#;)" $< > $@
$(PAGE)/%: static/%
	@mkdir -p $(@D)
	cp $< $@

screenshots: all tests/node_modules
	FETTLE=$(abspath $(PROGRAM)) node tests/page/screenshots.mjs build/screenshots
