// route.js - the address after the hash, as the state of a view and back. Pure.
//   #/                      the collection          ?q= &state= &sort= &order=
//   #/specimen/7            one specimen            ?baseline=RUN &only=differs &sort=newest|number|face_size|MEASURE &unit= &hide=V,V &fold=G,G &version=V
//                                                   &over=MEASURE &x= &y= (MEASURE or face_size) &chart=METRIC &way=lost|invented &beside=V,V
//   #/space/7               its versions in space   ?versions=V,V &colour=lost|invented|signed|aspect|valence|shell|none &range=
//                                                   &beside= &cut= &sides=yes &finding=RUN.N &view=CAMERA
//   #/audit/7                one version by one spec ?version=V &spec=S
//   #/specs                  the specs               ?spec=S
//   #/standing               the collection by one spec  ?spec=S &standing= &q= &sort= &order=
//   #/verify                 the check of a handoff
//   #/upload  #/run/118  #/help?measure=PATH
// In the collection &view= is the name under which the rest was saved.

const VIEWS = ['collection', 'specimen', 'space', 'audit', 'specs', 'standing', 'verify', 'upload', 'run', 'help'];

/** @returns {{ view: string, id: string|null, query: Record<string, string> }} view 'nowhere' for an address we do not have */
export function readRoute(hash) {
  const [path, search = ''] = hash.replace(/^#/, '').split('?');
  const [name = '', id = null, ...rest] = path.split('/').filter((part) => part !== '');
  const query = Object.fromEntries(new URLSearchParams(search));
  const view = name === '' ? 'collection' : name;
  const wantsId = ['specimen', 'space', 'audit', 'run'].includes(view);
  const known = VIEWS.includes(view) && name !== 'collection' && rest.length === 0 && wantsId === (id !== null);
  return known ? { view, id, query } : { view: 'nowhere', id: null, query: {} };
}

/** The address of a route; empty parts of the query are left out, the order of the rest is fixed. */
export function writeRoute({ view, id = null, query = {} }) {
  const path = view === 'collection' ? '#/' : `#/${view}${id === null ? '' : `/${id}`}`;
  const kept = Object.entries(query).filter(([, value]) => value !== '' && value !== null && value !== undefined);
  const search = kept.map(([key, value]) => `${encodeURIComponent(key)}=${encodeURIComponent(value)}`).join('&');
  return search === '' ? path : `${path}?${search}`;
}

/** A list kept in one part of the query: `a,b`. */
export function readList(value) {
  return value ? value.split(',').filter((item) => item !== '') : [];
}
