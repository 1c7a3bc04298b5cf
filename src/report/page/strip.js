// What happened at the stall or bump that is chosen: a sentence, and the time around it.
import { make, ms, picture, reveal } from './dom.js';
import { CAUSE, STALL, KIND, LOST, LEFT_BY, HEIGHT, whereIs } from './data.js';

// `fetchStrip(stall)`: gives the strip of a stall that the data have none of, as SVG; absent where nobody can.
export function mountStrip(root, select, fetchStrip) {
  const where = make('p', { class: 'where', role: 'status' }), paper = make('div', { class: 'paper strip', role: 'group', tabindex: 0, 'aria-label': 'The time around it' });
  root.append(where, paper);
  let data = null;

  async function tell(item, from) {
    reveal(root, data && item);
    if (!data || !item) return;
    const isBump = data.isBump(item), stall = item[isBump ? LEFT_BY : STALL];
    const said = isBump
      ? 'Bump of ' + item[HEIGHT].toFixed(2) + ' mm' + whereIs(item) + '. The stall that left it: ' + (item[CAUSE] || 'not listed') + '.'
      : item[KIND] + whereIs(item) + ': ' + item[CAUSE] + ', ' + ms(item[LOST]) + ' lost.';
    const told = (svg) => {
      where.textContent = said + (svg ? '' : ' The time around it is kept for the worst stalls only.');
      paper.replaceChildren(...(svg ? [picture(svg)] : []));
      paper.hidden = !svg;
    };
    let svg = data.strips.get(stall);
    if (!svg && fetchStrip) {
      where.textContent = said;
      paper.replaceChildren();
      const asked = data;
      svg = await fetchStrip(stall).catch(() => null);
      if (data !== asked || select.item !== item) return;
      if (svg) data.strips.set(stall, svg);
    }
    told(svg);
    if (from === 'table') root.scrollIntoView({ block: 'nearest' });
  }

  select.on(tell);
  return { setData(next) { data = next; tell(select.item); } };
}
