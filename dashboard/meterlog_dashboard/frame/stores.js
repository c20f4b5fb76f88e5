/* The stores of the page: what they hold, and a new value in one of them, which the server's callbacks listen to. */
export const stored = (id) => window.dash_component_api.getLayout(id).props.data;
export const store = (id, value) => window.dash_clientside.set_props(id, { data: value });
