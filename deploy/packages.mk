# packages.mk - installs missing packages before anything is built; included by the Makefile.
#   make packages          what building, running and testing need
#   make packages-build    what building and the demo need
#   make packages-test     that and what the tests need

.PHONY: packages-build packages-test
packages: packages-test
packages-build:
	@sh deploy/install-packages.sh build
packages-test:
	@sh deploy/install-packages.sh build test
