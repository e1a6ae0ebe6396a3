// specimen-tabs.js - the pages of one specimen.
import { h } from '../dom.js';
import { writeRoute } from '../route.js';
import { say } from '../say.js';

const TABS = ['specimen', 'space', 'audit'];

export function specimenTabs(specimen, here) {
  return h(
    'nav',
    { class: 'tabs', 'aria-label': specimen.catalogue_number },
    h(
      'ul',
      {},
      TABS.map((view) =>
        h(
          'li',
          {},
          h('a', {
            href: writeRoute({ view, id: specimen.id }),
            'aria-current': view === here ? 'page' : null,
            data: { key: `tab ${view}` },
            text: say(`tab.${view}`),
          }),
        ),
      ),
    ),
  );
}
