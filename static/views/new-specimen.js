// new-specimen.js - the dialog that names a new specimen, and the one that changes its label.
import { h, openDialog, options } from '../dom.js';
import { UNITS } from '../format.js';
import { problemText } from '../problem.js';
import { say } from '../say.js';
import { readTolerances, TOLERANCES_MAX, writeTolerances } from '../tolerances.js';

const STATES = ['new', 'in work', 'ready', 'retired'];

function field(label, input) {
  return h('label', { class: 'field' }, h('span', { text: label }), input);
}

const tolerancesText = (lengths) => (lengths.length > 0 ? writeTolerances(lengths) : '');

/** What is no list of lengths is told by the browser at the input, as it tells of what is missing. */
function tolerancesField(lengths) {
  const input = h('input', {
    name: 'tolerances',
    maxlength: 300,
    value: tolerancesText(lengths),
    autocomplete: 'off',
    inputmode: 'text',
    class: 'n',
    'aria-describedby': 'tolerances-note',
    on: {
      input: () =>
        input.setCustomValidity(
          readTolerances(input.value) === null ? say('new.tolerances.wrong', { n: TOLERANCES_MAX }) : '',
        ),
    },
  });
  return [field(say('new.tolerances'), input), h('p', { class: 'quiet', id: 'tolerances-note', text: say('new.tolerances.note') })];
}

/** Shows the form in a dialog; `act` does it and throws a Problem where the server refuses. */
function ask(title, fields, button, act) {
  const fault = h('p', { class: 'fault', role: 'alert' });
  const send = h('button', { type: 'submit', class: 'first', text: button });
  const dialog = openDialog({
    title,
    body: [h('div', { class: 'fields one' }, fields), fault],
    buttons: [h('button', { type: 'button', text: say('do.leave'), on: { click: () => dialog.close() } }), send],
  });
  dialog.querySelector('form').addEventListener('submit', async (event) => {
    const values = Object.fromEntries(new FormData(event.target));
    send.disabled = true;
    try {
      await act(values);
      dialog.close();
    } catch (problem) {
      const { what, todo } = problemText(problem);
      fault.textContent = `${what} ${todo}`;
    }
    send.disabled = false;
  });
}

export function askNewSpecimen(act, values = {}) {
  ask(
    say('new.title'),
    [
      field(
        say('new.number'),
        h('input', {
          name: 'catalogue_number',
          required: true,
          maxlength: 80,
          value: values.number ?? '',
          autocomplete: 'off',
          class: 'no',
        }),
      ),
      field(
        say('new.name'),
        h('input', { name: 'title', required: true, maxlength: 200, value: values.title ?? '', autocomplete: 'off' }),
      ),
      field(
        say('new.units'),
        h(
          'select',
          { name: 'units' },
          options(
            UNITS.map((unit) => [unit, unit]),
            'mm',
          ),
        ),
      ),
      field(say('new.note'), h('input', { name: 'note', maxlength: 1000, autocomplete: 'off' })),
      h('p', { class: 'quiet', text: say('new.unitsNote') }),
      tolerancesField([]),
    ],
    say('new.do'),
    (form) => act({ ...form, note: form.note || undefined, tolerances: readTolerances(form.tolerances) }),
  );
}

export function askChangeSpecimen(specimen, act) {
  const empty = specimen.versions.scan + specimen.versions.cage === 0;
  ask(
    say('label.change.title', { number: specimen.catalogue_number }),
    [
      field(
        say('new.name'),
        h('input', { name: 'title', required: true, maxlength: 200, value: specimen.title, autocomplete: 'off' }),
      ),
      field(
        say('collection.state'),
        h(
          'select',
          { name: 'state' },
          options(
            STATES.map((state) => [state, say(`state.${state}`)]),
            specimen.state,
          ),
        ),
      ),
      empty
        ? field(
            say('new.units'),
            h(
              'select',
              { name: 'units' },
              options(
                UNITS.map((unit) => [unit, unit]),
                specimen.units,
              ),
            ),
          )
        : null,
      field(
        say('new.note'),
        h('input', { name: 'note', maxlength: 1000, value: specimen.note ?? '', autocomplete: 'off' }),
      ),
      tolerancesField(specimen.tolerances),
    ],
    say('label.change.do'),
    (form) => act({ ...form, tolerances: readTolerances(form.tolerances) }),
  );
}
